"""From a scan to a measured pressure map."""
