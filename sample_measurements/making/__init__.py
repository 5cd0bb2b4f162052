"""How the invented lots are made; nothing here is needed to read them."""
