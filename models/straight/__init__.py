"""A straight pitch field: how even it is, what a choke chain does, what a build can buy and spread."""
