"""The course plan: what margin to expect along a course. Pure."""
