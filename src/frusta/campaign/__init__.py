"""Tables, packages and the analysis of a whole campaign: readings, differences, ranking."""
