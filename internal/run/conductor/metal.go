package conductor

// metal holds the properties of a wire's metal.
type metal struct {
	resistivity float64 // Ω·mm²/m at 20 °C
	tempCo      float64 // 1/K at 20 °C
	rating      float64 // rated current as a part of that of copper of the same size
}

var materialNames = []string{"copper", "cca", "aluminium"}

var metals = map[string]metal{
	// IEC 60028: 100 % IACS is 1/58 Ω·mm²/m, and 0.00393 per kelvin.
	"copper": {resistivity: 1.0 / 58, tempCo: 0.00393, rating: 1},

	// IEC 60889, hard-drawn aluminium, 61 % IACS.
	"aluminium": {resistivity: 0.028264, tempCo: 0.00403, rating: lightMetalRating},

	// ASTM B566, copper-clad aluminium with 10 % copper by volume: at least
	// 62.9 % IACS. The temperature coefficient is that of the two metals in parallel:
	// the mean of theirs, weighted with the conductance of each.
	"cca": {
		resistivity: 1.0 / 58 / 0.629,
		tempCo:      (0.10*1.00*0.00393 + 0.90*0.61*0.00403) / (0.10*1.00 + 0.90*0.61),
		rating:      lightMetalRating,
	},
}

// lightMetalRating is the rated current of aluminium as a part of copper's: for the same
// heat √0.61 = 0.78 of it, about 80 %. Copper-clad aluminium is rated the same
// (√0.629 = 0.79).
const lightMetalRating = 0.80
