"""What is shown: result file, terminal, tables, figures."""
