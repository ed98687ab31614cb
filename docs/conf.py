"""How the documentation is built."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent / "extensions"))

from frusta.version import __version__

project = "frusta"
author = "The frusta developers"
version = release = __version__
extensions = ["myst_parser", "sphinx.ext.autodoc", "sphinx.ext.napoleon", "written_from_the_code"]
myst_enable_extensions = ["deflist"]
myst_heading_anchors = 4
source_suffix = {".md": "markdown"}
exclude_patterns = ["_build", "extensions"]
html_theme = "alabaster"
html_theme_options = {"description": "What printed cones do, and why", "show_powered_by": False, "page_width": "1080px"}
html_sidebars = {"**": ["about.html", "searchfield.html", "navigation.html"]}
html_copy_source = False
autodoc_typehints = "description"
