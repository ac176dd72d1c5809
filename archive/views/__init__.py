"""What people see: the command line and its reports. Everything is asked of the workspace."""
