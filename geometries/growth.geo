// No joint by itself: how cells grow. Included by the scripts beside this file.

// Growth `high`, between 1 and `growth`, with which n1 cells fill `length`, the
// first of them `first` long; by bisection.
Macro Growth
  low = 1; high = growth;
  For bisection In {1:40}
    q = (low + high) / 2;
    If (first * (q^n1 - 1) / (q - 1) < length)
      low = q;
    Else
      high = q;
    EndIf
  EndFor
Return
