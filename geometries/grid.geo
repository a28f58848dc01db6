// No joint by itself: what the scripts of joints beside this file share.
//
// A section is a grid of rectangles, some of them filled, with the spew
// fillets as triangles beside it. Every rectangle is meshed with structured
// quadrilaterals that grow by a constant ratio away from the overlap ends and
// the interfaces, along x up to twice the adherend's thickness. Doubling
// mesh_density halves every cell and keeps every old mesh line (cell numbers
// double, ratios become their square roots).
//
// A script includes this file when it has set
//
//   h             half the bondline's thickness
//   f, fillet     spew height, and whether there are fillets (1) or not (0)
//   mesh_density
//   longest_bonded_cell   no cell along the overlap is longer, at mesh density 1; 0: twice the adherend's thickness
//
// and may set disbond_tip, the place along x where a disbond ends inside the overlap
// (0: there is none): a mesh line with even cells on both sides of it; or edges of flaws (flaws.geo).
//
// It then draws its NX and NY grid lines: X() with nx() cells in the intervals
// between them, each rx() times as long as the one before, and Y(), ny(), ry()
// likewise; says in R() which rectangles are filled; and calls Fill, Collect,
// EndFace and Layer.
// (gmsh resumes after a Call at the next line, so each Call ends its line.)

Include "growth.geo";
Include "flaws.geo";

DefineConstant[
  disbond_tip = {0, Name "Parameters/disbond_tip"}
];

// ---- cells: sizes and growth at mesh density 1 ---------------------------
half_layer_cells = 4;   // from an interface to the mid-line
growth_y = 1.8;         // away from the interfaces
growth_x = 1.35;        // away from the overlap ends
longest = 2;            // longest cell, in thicknesses of the adherend
most_equal = 80;        // equal cells in a stretch, about
smallest = h * (growth_y - 1) / (growth_y^half_layer_cells - 1);

// Cells that grow from `first` over `length`: n, ratio, and n1 at density 1,
// which is even so that half the density keeps every other mesh line. The ratio
// is the one, at most `growth`, with which the first cell is `first` long.
Macro Graded
  n1 = 2 * Max(1, Ceil(Log(1 + length * (growth - 1) / first) / Log(growth) / 2 - 1e-9));
  Call Growth;
  n = Max(1, Round(n1 * mesh_density));
  ratio = high^(n1 / n);
Return

// Adds a stretch of `length` along x with n cells that grow by `ratio`.
Macro Stretch
  x += length;
  X() += x; nx() += n; rx() += ratio;
Return

// Adds a stretch of `span` along x: cells grow away from its fine end, then,
// once they are `largest` long, stay so. fine = -1: the fine end is the left.
Macro Span
  uniform = Max(largest, span / most_equal);
  n1 = 2 * Max(1, Floor((1 + Log(uniform / first) / Log(growth)) / 2));
  graded = first * (growth^n1 - 1) / (growth - 1);
  rest = span - graded;
  If (rest < uniform)
    graded = span; rest = 0;
  EndIf
  nr = Max(1, Round(2 * Max(1, Ceil(rest / uniform / 2)) * mesh_density));
  If (rest > 0 && fine > 0)
    length = rest; n = nr; ratio = 1;
    Call Stretch;
  EndIf
  length = graded;
  Call Graded;
  If (fine > 0)
    ratio = 1 / ratio;
  EndIf
  Call Stretch;
  If (rest > 0 && fine < 0)
    length = rest; n = nr; ratio = 1;
    Call Stretch;
  EndIf
Return

half_cells = Max(1, Round(half_layer_cells * mesh_density));
half_ratio = growth_y^(half_layer_cells / half_cells);
If (disbond_tip > 0 || flaw_tips > 0)   // as fine at the mid-line, where the tip may lie, as near the interfaces
  half_cells = Max(1, Round(tip_layer_cells * mesh_density)); half_ratio = 1;
EndIf
growth = growth_y; first = smallest; length = f / 2;
Call Graded;
fillet_cells = n; fillet_ratio = ratio;
// The first cell of an adherend: as at the interface, or as where the fillet ends.
first_y = fillet ? f / 2 / Max(2, n1) : smallest;

// Adds the overlap with a disbond's tip in it: even cells on both sides of the
// tip, then they grow, and shrink again towards the overlap's ends.
Macro AroundTip
  ahead = overlap_length - disbond_tip;
  tip_cell = Min(h / tip_layer_cells, Min(disbond_tip, ahead) / (4 * tip_even_cells));
  even = tip_even_cells * tip_cell; even_cells = Max(1, Round(tip_even_cells * mesh_density));
  first = smallest; span = (disbond_tip - even) / 2; fine = -1;
  Call Span;
  first = tip_cell; fine = 1;
  Call Span;
  length = even; n = even_cells; ratio = 1;
  Call Stretch;
  x = disbond_tip; X(#X()-1) = x;
  Call Stretch;
  span = (ahead - even) / 2; fine = -1;
  Call Span;
  first = smallest; fine = 1;
  Call Span;
Return

// Adds the overlap with edges of flaws in it: cells grow away from each of them,
// and from the overlap's ends, after even ones at the tips.
Macro AroundFlaws
  from = 0; from_first = smallest; from_even = 0;
  even_cells = Max(1, Round(tip_even_cells * mesh_density));
  For e In {1:flaw_edges+1}
    to = overlap_length; to_first = smallest; to_even = 0;
    If (e <= flaw_edges)
      to = flaw_edge~{e}; before = from; after = overlap_length;
      If (e < flaw_edges)
        after = flaw_edge~{e+1};
      EndIf
      Call AtEdge;
      to_first = edge_first; to_even = edge_even;
    EndIf
    n = even_cells; ratio = 1; length = from_even;
    If (from_even > 0)
      Call Stretch;
    EndIf
    first = from_first; span = (to - from - from_even - to_even) / 2; fine = -1;
    Call Span;
    first = to_first; fine = 1;
    Call Span;
    n = even_cells; ratio = 1; length = to_even;
    If (to_even > 0)
      Call Stretch;
    EndIf
    x = to; X(#X()-1) = x;
    from = to; from_first = to_first; from_even = to_even;
  EndFor
Return

// ---- grid lines along x ---------------------------------------------------
// One overlap between x = 0 and overlap_length. Adherends of `left_thickness`
// go on for left_free_length to the left of it, those of `right_thickness` for
// right_free_length to the right. i0, i1: the grid lines at the overlap's ends.
Macro Along
  growth = growth_x;
  x = -left_free_length;
  X() = {x}; nx() = {}; rx() = {};
  first = fillet ? h / half_layer_cells : smallest;
  span = left_free_length - (fillet ? f + 2*h : 0);
  largest = longest * left_thickness; fine = 1;
  Call Span;
  If (fillet)   // from the fillet's tip to the overlap's end
    length = h; n = half_cells; ratio = 1;
    Call Stretch;
    length = h;
    Call Stretch;
    length = f / 2; n = fillet_cells;
    Call Stretch;
    length = f / 2; ratio = 1 / fillet_ratio;
    Call Stretch;
  EndIf
  x = 0; i0 = #X() - 1; X(i0) = 0;
  largest = longest * Min(left_thickness, right_thickness);
  If (longest_bonded_cell > 0 && longest_bonded_cell < largest)
    largest = longest_bonded_cell; most_equal = 10000;
  EndIf
  If (flaw_edges > 0)
    Call AroundFlaws;
  ElseIf (disbond_tip > 0)
    Call AroundTip;
  Else
    first = smallest; span = overlap_length / 2; fine = -1;
    Call Span;
    fine = 1;
    Call Span;
  EndIf
  most_equal = 80;
  x = overlap_length; i1 = #X() - 1; X(i1) = x;
  If (fillet)
    length = f / 2; n = fillet_cells; ratio = fillet_ratio;
    Call Stretch;
    length = f / 2; ratio = 1;
    Call Stretch;
    length = h; n = half_cells;
    Call Stretch;
    length = h;
    Call Stretch;
  EndIf
  first = fillet ? h / half_layer_cells : smallest;
  span = right_free_length - (fillet ? f + 2*h : 0);
  largest = longest * right_thickness; fine = -1;
  Call Span;
  NX = #X(); X(NX-1) = overlap_length + right_free_length;
Return

// ---- points, lines, surfaces of the filled rectangles -------------------
// R(i + NX*j): number of the region that fills the rectangle right of grid line
// i and above grid line j; 0: none. Below grid line jm the lines along y run
// downwards, and ry() with them: what is a mirror image of what lies above is
// meshed as one to round-off. Gives P: points, H and V: lines along x and y
// (negative where they run downwards), S: surfaces.
Macro Fill
  For j In {0:NY-1}
    For i In {0:NX-1}
      k = i + NX*j; P(k) = newp; Point(P(k)) = {X(i), Y(j), 0};
      H(k) = 0; V(k) = 0; S(k) = 0;
    EndFor
  EndFor
  For j In {0:NY-2}
    For i In {0:NX-2}
      k = i + NX*j;
      If (R(k) > 0)
        For s In {0:1}
          kh = k + NX*s;   // bottom, top
          If (H(kh) == 0)
            H(kh) = newc; Line(H(kh)) = {P(kh), P(kh+1)};
            Transfinite Curve {H(kh)} = nx(i)+1 Using Progression rx(i);
          EndIf
          kv = k + s;      // left, right
          If (V(kv) == 0)
            line = newc;
            If (j < jm)
              Line(line) = {P(kv+NX), P(kv)}; V(kv) = -line;
            Else
              Line(line) = {P(kv), P(kv+NX)}; V(kv) = line;
            EndIf
            Transfinite Curve {line} = ny(j)+1 Using Progression ry(j);
          EndIf
        EndFor
        loop = newll; Curve Loop(loop) = {H(k), V(k+1), -H(k+NX), -V(k)};
        surface = news; Plane Surface(surface) = {loop};
        Transfinite Surface {surface} = {P(k), P(k+1), P(k+NX+1), P(k+NX)};
        Recombine Surface {surface};
        S(k) = surface;
      EndIf
    EndFor
  EndFor
Return

// Gives in found() the surfaces of the rectangles that `region` fills.
Macro Collect
  found() = {};
  For j In {0:NY-2}
    For i In {0:NX-2}
      k = i + NX*j;
      If (R(k) == region)
        found() += S(k);
      EndIf
    EndFor
  EndFor
Return

// Gives in ends() the lines along y that bound `region` in `column` of the grid,
// on its left (side = 0) or its right (side = 1).
Macro EndFace
  ends() = {};
  For j In {0:NY-2}
    k = column + NX*j;
    If (R(k) == region)
      ends() += Abs(V(k + side));
    EndIf
  EndFor
Return

// ---- spew fillets: triangles, each parted into three quadrilaterals ------
// Right angle at grid point (iq, jq), legs of two grid intervals each in the
// directions di along x and dj along y, `cells` in every half leg.
Macro Triangle
  im = iq + di; ie = im + di; jn = jq + dj; jg = jn + dj;
  If (di > 0)
    qm = H(iq + NX*jq); me = H(im + NX*jq);
  Else
    qm = -H(im + NX*jq); me = -H(ie + NX*jq);
  EndIf
  If (dj > 0)
    qn = V(iq + NX*jq); ng = V(iq + NX*jn);
  Else
    qn = -V(iq + NX*jn); ng = -V(iq + NX*jg);
  EndIf
  pq = P(iq + NX*jq); pm = P(im + NX*jq); pe = P(ie + NX*jq);
  pn = P(iq + NX*jn); pg = P(iq + NX*jg);
  mid = newp; Point(mid) = {X(im), Y(jn), 0};
  centre = newp; Point(centre) = {X(iq) + (X(ie)-X(iq))/3, Y(jq) + (Y(jg)-Y(jq))/3, 0};
  emid = newc; Line(emid) = {pe, mid};
  midg = newc; Line(midg) = {mid, pg};
  mc = newc; Line(mc) = {pm, centre};
  nc = newc; Line(nc) = {pn, centre};
  midc = newc; Line(midc) = {mid, centre};
  Transfinite Curve {emid, midg, mc, nc, midc} = cells + 1;
  q1 = newll; Curve Loop(q1) = {qm, mc, -nc, -qn};
  Plane Surface(q1) = {q1}; Transfinite Surface {q1} = {pq, pm, centre, pn};
  q2 = newll; Curve Loop(q2) = {me, emid, midc, -mc};
  Plane Surface(q2) = {q2}; Transfinite Surface {q2} = {pm, pe, mid, centre};
  q3 = newll; Curve Loop(q3) = {ng, -midg, midc, -nc};
  Plane Surface(q3) = {q3}; Transfinite Surface {q3} = {pn, pg, mid, centre};
  Recombine Surface {q1, q2, q3};
  adhesive() += {q1, q2, q3};
Return

// ---- a bondline: its curves and its fillets --------------------------------
// jl: its interface with the adherend that goes on to the left, jr: to the right.
// Adds the fillets to adhesive(). Gives interface_left(), interface_right() and
// middle(), 0 <= x <= overlap_length, and cut(): mesh lines through the adhesive
// alone that part one adherend from the other, clear of the corners.
Macro Layer
  jc = (jl + jr) / 2; up = jr > jl ? 1 : -1;   // up: from left to right adherend
  middle() = {}; interface_left() = {}; interface_right() = {}; cut() = {};
  For i In {i0:i1-1}
    interface_left() += H(i + NX*jl);
    middle() += H(i + NX*jc);
    interface_right() += H(i + NX*jr);
  EndFor
  cut() += middle();
  If (fillet)
    cells = half_cells;
    iq = i0-2; jq = jl; di = -1; dj = up;
    Call Triangle;
    cut() += {midc, nc, H(i0-2 + NX*jc), H(i0-1 + NX*jc)};
    iq = i1+2; jq = jr; di = 1; dj = -up;
    Call Triangle;
    cut() += {midc, nc, H(i1 + NX*jc), H(i1+1 + NX*jc)};
    cells = fillet_cells;
    iq = i0; jq = jr; di = -1; dj = up;
    Call Triangle;
    iq = i1; jq = jl; di = 1; dj = -up;
    Call Triangle;
  EndIf
Return
