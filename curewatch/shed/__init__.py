"""What is known now: the situation, the sensors' health, the layers, what was learnt."""
