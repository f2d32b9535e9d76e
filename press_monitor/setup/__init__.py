"""Setting a shop up and finding out what is wrong with it: pure logic, for the command line and for screens."""
