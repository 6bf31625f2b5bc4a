"""Other solvers on the package's own network, for `compare.py` and its test."""
