"""What is kept of a run: JSON that can be read and judged again for ever."""
