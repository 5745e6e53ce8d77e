"""The pages, each beginning from a question."""
