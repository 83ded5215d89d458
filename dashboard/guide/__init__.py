"""The user's guide: a Markdown file a task, read here and in the repository alike."""
