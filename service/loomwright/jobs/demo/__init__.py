"""Demo price book and demo jobs of an invented shop, as JSON; ``demo_library`` reads them."""
