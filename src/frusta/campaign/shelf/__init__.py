"""The shelf: every campaign of a lifetime in one store, and what the years did to cones and rig."""
