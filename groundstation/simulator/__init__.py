"""The simulated car: seeded, physical, and a stranger to every estimator."""
