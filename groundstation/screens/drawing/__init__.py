"""What screens look like, as pure functions: values in, lines of inked text out. No Textual."""
