"""The rooms of the page, each a router of its own."""
