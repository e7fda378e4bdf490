"""What a person sees: tables, sentences, figures and the report page. Nothing here computes a probability."""
