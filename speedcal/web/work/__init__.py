"""What is done with files, in processes of their own."""
