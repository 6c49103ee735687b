// Has the Khronos Group's validator judge scenes: node validate.mjs FILE.glb|FILE.gltf...
// Errors and warnings fail, and so does a scene without textures, but for one whose name begins with
// "bare".

import { readFile } from "node:fs/promises";
import { basename, dirname, join } from "node:path";
import validator from "gltf-validator";

const files = process.argv.slice(2);
if (files.length === 0) {
  console.error("name the scenes to be judged");
  process.exit(2);
}
let failed = false;
for (const file of files) {
  const report = await validator.validateBytes(new Uint8Array(await readFile(file)), {
    uri: file,
    maxIssues: 0,
    externalResourceFunction: async (uri) =>
      new Uint8Array(await readFile(join(dirname(file), decodeURIComponent(uri)))),
  });
  const { numErrors, numWarnings, numInfos, messages } = report.issues;
  console.log(
    `${file}: ${numErrors} errors, ${numWarnings} warnings, ${numInfos} remarks; ` +
      `${report.info?.animationCount} animations, ${report.info?.materialCount} materials, ` +
      `textures ${report.info?.hasTextures}`,
  );
  for (const { code, message, pointer, severity } of messages) {
    console.log(`  ${["error", "warning", "remark", "hint"][severity]} ${code} at ${pointer}: ${message}`);
  }
  const bare = basename(file).startsWith("bare");
  failed ||= numErrors + numWarnings > 0 || !report.info || (!bare && !report.info.hasTextures);
}
process.exit(failed ? 1 : 0);
