"""What a recording tells of its sensors, their places and the field around them."""
