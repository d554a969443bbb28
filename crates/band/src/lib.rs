//! The band around the line, files, ports, pages and the command line.
