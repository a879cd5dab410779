"""A class of takes: who handed in what, what was found, what the teacher says.

`assignment` what was asked of whom · `matching` takes to players and licks · `jobs` one
take to be assessed · `running` many of them, on any executor · `workers` processes of
this machine, with a time limit · `finding` what was found in one take, small enough for
a class · `overruling` what the teacher says instead · `corrections` the log of it ·
`pseudonyms` what players are called · `books` the folder all of it is kept in ·
`summary` the class · `earlier`, `changes` the class against its last assignment ·
`agreement` how far tool and teacher agree · `forgetting` what is deleted of a player.
"""
