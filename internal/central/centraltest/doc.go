package centraltest // on systems but Linux there is nothing else in it
