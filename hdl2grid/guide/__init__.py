"""The guide: from a plan alone to the steps by which a person lays the machine and tests it on the way."""
