"""Circuit -> Netlist: which drivers share a net, cells, signals, sinks, and the site."""
