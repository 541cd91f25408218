"""The dial from checks against a known truth, without a track."""
