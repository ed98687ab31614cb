"""Charts and the report."""
