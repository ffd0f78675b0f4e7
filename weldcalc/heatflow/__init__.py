"""Heat flow in the metal: closed forms, the two pulse engines and the seam."""
