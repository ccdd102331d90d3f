package report

// method names how a worst pixel's loss is shared out among its causes.
const method = "Shapley's value: each cause against an ideal one, averaged over every order"
