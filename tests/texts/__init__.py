"""Every answer as people read it: rendered from documents, kept as text, readable in a diff.

`python -m tests.texts` renders the kept documents (documents/) anew into rendered/; read the diff.
`python -m tests.texts --anew` first runs every command in every situation and keeps their documents.
"""
