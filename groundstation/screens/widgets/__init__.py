"""The panels of the screens, one a file: each draws one part of a desk."""
