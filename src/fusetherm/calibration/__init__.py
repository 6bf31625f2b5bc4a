"""From what is published to a model: observations, residual, fit, the fit file."""
