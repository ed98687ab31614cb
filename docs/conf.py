"""How the documentation is built."""

project = "frusta"
author = "The frusta developers"
extensions = ["myst_parser", "sphinx.ext.autodoc", "sphinx.ext.napoleon"]
myst_enable_extensions = ["dollarmath", "deflist"]
source_suffix = {".md": "markdown"}
exclude_patterns = ["_build"]
html_theme = "alabaster"
autodoc_typehints = "description"
