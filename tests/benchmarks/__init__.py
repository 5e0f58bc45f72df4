"""What is called fast, measured: ratios in one run against a named baseline.

`python -m tests.benchmarks NAME [--json]`; nothing here is part of the test suite.
"""
