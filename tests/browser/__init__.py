"""The pages in a real browser. A package, so that its browser ends before other tests begin."""
