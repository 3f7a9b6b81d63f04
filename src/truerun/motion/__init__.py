"""From passes of a mark to drag, hill and capture speed."""
