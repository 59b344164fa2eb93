"""What leaves the program: sentences, pictures, charts and the report."""
