"""What the office asks of a ship: at the office how far it is, aboard to accept or decline it."""
