"""What a result is worth: lamp life, reuse, log reduction, uncertainty, what to cut and drill."""
