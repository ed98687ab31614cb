"""The page: five rooms in the browser, served to this machine by `frusta open`."""
