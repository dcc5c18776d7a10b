"""From the hole to the schedule: amounts, batches, sessions, starts."""
