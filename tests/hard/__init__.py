"""Hard use: texts, command lines and files that nobody means well."""
