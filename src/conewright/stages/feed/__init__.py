"""Feed: what each channel drives, and what radio, cable and fuse take."""
