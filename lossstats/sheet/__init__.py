"""The result sheet, part by part."""
