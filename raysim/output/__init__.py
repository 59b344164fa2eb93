"""Results for people: sentences, pictures, charts, the report, and the folder of files."""
