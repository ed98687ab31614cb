"""The sections of a report in words and tables, one a file; what each returns goes to the template as it is."""
