"""press-monitor: watches tire section repairs cure and seals each cycle as a certificate.

It watches and records. It controls nothing and is no safety device.
"""

__version__ = "0.1.0"
