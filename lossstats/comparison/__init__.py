"""Two conditions compared: contrast of unit values, saving in W and in percent, verdict, statement."""
