"""What a person should do: checks, verdict, timeline, levers, start times, batches and alerts."""
