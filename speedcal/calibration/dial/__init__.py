"""The dial as a curve with its covariance, and what a fit of it returns."""
