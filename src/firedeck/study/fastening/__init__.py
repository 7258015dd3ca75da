"""How a head is fastened: preloads, strength, tightening, and the card for the bench."""
