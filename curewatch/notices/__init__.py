"""Who is told of alerts beside the screen and the broker: what is due, in which words, and sending it."""
