"""What a recorded session tells afterwards. Pure: columns in, figures out."""
