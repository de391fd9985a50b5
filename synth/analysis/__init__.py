"""What each command computes: from the workbench and readings to figures."""
