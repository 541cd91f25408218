"""The upload page: owner, tech and customer around one job. It calls the same functions as the command."""
