"""What stands on report, sheet, card, the page of a fleet and the upload page."""
