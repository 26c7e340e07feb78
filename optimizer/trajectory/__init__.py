"""What a course is, where it begins, and how it is corrected by its flight."""
