"""One question, one file: each answer asks the simulation and knows nothing of solvers or files."""
