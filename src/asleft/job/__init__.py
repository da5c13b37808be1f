"""The one entrance: the engine wires ports to adapters, the client commands and watches it. Acts."""
