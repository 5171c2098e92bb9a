"""Readers of the files that winds come in: text in; forecast hours or readings out, or a plain refusal."""
