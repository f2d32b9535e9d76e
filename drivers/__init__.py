"""How to talk to the instruments on a press: one small module per kind of hardware."""
