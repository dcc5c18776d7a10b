"""From a situation to a verdict: question, course, checks, limits."""
