"""The control link: how strong, how far from lost. Pure: numbers in, numbers out."""
