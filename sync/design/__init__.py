"""Design of the levelling loop before hardware exists: linear models, margins, describing functions, tuning rules."""
