"""Coverage-guided fuzzing of everything that reads what comes from outside.

`python -m tests.fuzzing TARGET --seconds N` runs one target under atheris (`pip install atheris`;
Linux only, so it is no test dependency). What it finds goes into `found/TARGET/` and is run by the
test suite for ever after.
"""
