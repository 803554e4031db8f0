"""How the pages are built to a site: `make docs`."""

import conewright

project = "Conewright"
version = release = conewright.__version__
copyright = "the Conewright authors"
extensions = ["myst_parser"]
source_suffix = {".md": "markdown"}
exclude_patterns = ["__pycache__"]
# Headings are anchors, as sites for code make them.
myst_heading_anchors = 4
nitpicky = True
html_theme = "alabaster"
html_title = "Conewright"
html_theme_options = {
    "description": "The sound of an ageing vehicle, brought back",
    "page_width": "72rem",
    "fixed_sidebar": True,
    "show_powered_by": False,
}
html_sidebars = {"**": ["about.html", "searchfield.html", "navigation.html"]}
# Nothing is asked of anywhere outside, and the same pages give the same site.
html_show_sphinx = False
html_copy_source = False
