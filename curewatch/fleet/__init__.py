"""Many sheds behind brokers that keep what nobody has taken yet."""
