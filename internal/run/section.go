package run

// Section returns the run with only some of its reels. reels has an entry by reel. The joints
// between them and the feeds that lead to them stay, and so do all supplies, junctions, steps,
// meters and limits; probes are left out. Reels, joints and feeds are renumbered. A reel may
// be without a supply, see Unreached.
func (r *Run) Section(reels []bool) *Run {
	s := *r
	s.Reels, s.Joints, s.Feeds, s.Probes = nil, nil, nil, nil
	number := make([]int, len(r.Reels))
	for i, reel := range r.Reels {
		number[i] = -1
		if reels[i] {
			number[i] = len(s.Reels)
			s.Reels = append(s.Reels, reel)
		}
	}
	for i := range s.Reels {
		if follows := s.Reels[i].Follows; follows >= 0 {
			s.Reels[i].Follows = number[follows]
		}
	}
	for _, j := range r.Joints {
		if number[j.From] >= 0 && number[j.To] >= 0 {
			j.From, j.To = number[j.From], number[j.To]
			s.Joints = append(s.Joints, j)
		}
	}
	leads := make([]bool, len(r.Junctions)) // to a reel that stays
	stays := func(f Feed) bool {
		switch f.To.Kind {
		case AtReel:
			return number[f.To.Index] >= 0
		case AtJunction:
			return leads[f.To.Index]
		}
		return true
	}
	for more := true; more; {
		more = false
		for _, f := range r.Feeds {
			if f.From.Kind == AtJunction && !leads[f.From.Index] && stays(f) {
				leads[f.From.Index], more = true, true
			}
		}
	}
	for _, f := range r.Feeds {
		if stays(f) {
			for _, end := range []*Place{&f.From, &f.To} {
				if end.Kind == AtReel {
					end.Index = number[end.Index]
				}
			}
			s.Feeds = append(s.Feeds, f)
		}
	}
	return &s
}
