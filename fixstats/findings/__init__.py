"""One question a file: counts in, a frozen finding out."""
