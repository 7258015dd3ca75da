// What the pages use of uPlot; its own code is not checked.
declare const uPlot: any;
export default uPlot;
