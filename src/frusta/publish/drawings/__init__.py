"""The drawings of a report, one figure a file, with their words, tables and values to read off."""
