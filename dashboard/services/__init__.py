"""What the pages ask of the library: sessions, reading uploads, answering. No Dash here."""
