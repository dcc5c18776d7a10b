"""What a person should do: checks against limits, the verdict, the timeline, levers, start times, batches, alerts."""
