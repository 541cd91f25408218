"""Files of checks: the dial beside a truth that is known without a track."""
