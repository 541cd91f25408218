"""What the shop keeps: originals, jobs and drives, who may see them, what happened to them."""
