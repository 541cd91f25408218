"""What a drive says of the vehicle: causes, and the combinations of parts that explain it."""
