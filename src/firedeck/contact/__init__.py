"""From fastener preload to the pressure on every seal: condensed bodies, gasket laws, states."""
