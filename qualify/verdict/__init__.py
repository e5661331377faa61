"""From figures and budgets to verdicts, each with its reason."""
