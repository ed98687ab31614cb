"""What is known of a material: estimates from modes and responses of many cones."""
