"""Heat and light: from a day's weather to thermal time, and the rival clocks that count it."""
